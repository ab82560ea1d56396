"""The only place that touches disk: room files, day sheets, and `Room`, the one door to both."""
