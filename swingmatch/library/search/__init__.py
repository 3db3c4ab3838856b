"""Search for the model swings most alike in movement, exact and fast at any size of the library."""
