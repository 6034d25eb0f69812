"""The same firmware on every runtime: golden traces recorded on the bench and replayed everywhere."""
