"""Compares a recorded ride with the bench's: errors, and which numbers explain them."""
