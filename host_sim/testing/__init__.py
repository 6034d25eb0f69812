"""Tools for testing a controller of your own on the bench."""
