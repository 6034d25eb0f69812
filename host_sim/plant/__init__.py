"""The physics of the bench: bicycles and riders, without any controller."""
