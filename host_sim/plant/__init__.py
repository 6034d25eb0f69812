"""The physics that the bench rides: it knows bicycles and people, and nothing of any controller."""
