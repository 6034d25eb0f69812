"""What a bicycle is, measured from logs: each number with an interval, or the reason why there is none."""
