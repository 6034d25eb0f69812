"""A recorded ride against the bench's: measured and predicted, and which numbers explain the difference."""
