"""What to order for a build: how many boards, which parts, and which grade of them is worth its price."""
