"""The lab: six lessons that ride the real firmware on the bench while somebody moves a slider.

This folder has what each lesson computes and draws, their descriptions (`lessons`), and the small server
that shows them. No firmware is imitated here: a lesson that disables something replaces one part of the
controller, and says so.
"""
