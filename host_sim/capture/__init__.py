"""Recorded sensor edges: readers and writers of capture files, and what the edges tell about the sensor.

A capture file comes in through `open_capture` and is from then on a stream of `EdgeChunk`s. No bench, no
plant and no controller here but the firmware's own decoder.
"""
