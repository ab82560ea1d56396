"""What the program knows: pure functions and frozen values, without files, clock or screen."""
