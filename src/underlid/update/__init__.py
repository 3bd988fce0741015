"""The monthly illustrated account of one bin: the facts, the words, the charts and the page."""
