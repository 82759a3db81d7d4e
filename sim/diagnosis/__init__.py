"""What is wrong with a built unit: every single fault simulated, and the sweep compared with all of them."""
