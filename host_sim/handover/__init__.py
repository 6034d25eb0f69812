"""The handover sheet: the page that a workshop gives to the bicycle's owner.

This folder has what the page says, and how it is drawn and printed. Nothing is decided about a bicycle here:
its numbers come from the bike file, the bench and the reports of other commands.
"""
