"""The lab: six lessons that ride the real firmware on the bench while somebody moves a slider.

Here live what each lesson computes and draws (plain functions, no notebook needed), the notebooks in
`lessons` that put sliders beside it, and the small server that shows them. No firmware is
imitated here: where a lesson switches something off, it replaces one part of the controller, and says so.
"""
