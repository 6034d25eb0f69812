"""Work at the bicycle with a live board: calibration of levers and wheel, and the first-power checklist."""
