"""Compares a recorded ride with the bench's prediction: errors, and which numbers explain them."""
