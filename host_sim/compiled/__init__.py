"""The bench compiled by mypyc, and processes that ride with it; see README.md."""
