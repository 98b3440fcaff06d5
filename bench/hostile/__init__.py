"""What bench/fuzz.py is made of: seeds, mutations, targets, and the process that runs them."""
