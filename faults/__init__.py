"""How memories are built, how they break, and how to find what broke."""
