"""Changes one thing at a time in the firmware and wants a test to fail each time.

What lives on stands in survivors.toml with its reason, or is shown by the proof engine to change nothing.
"""
