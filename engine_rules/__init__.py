"""What a tuner knows: from a log to advice and its reasons. Knows engines, and no spreadsheet."""
