"""Changes one thing at a time in the firmware and wants a test to fail each time.

A survivor is in survivors.toml with its reason, or the proof engine shows that it changes nothing.
"""
