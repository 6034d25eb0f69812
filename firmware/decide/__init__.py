"""From facts to watts: whether to help, how much is wanted, how much is allowed."""
