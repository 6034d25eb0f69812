"""Figures and tables for people."""
