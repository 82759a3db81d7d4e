"""From circuit files to complete decks; nothing from outside reaches the simulator unread."""
