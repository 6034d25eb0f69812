"""From facts to watts: whether to help, how much the rider wants, how much is allowed."""
