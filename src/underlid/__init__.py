"""underlid: evidence from small, unheated worm-composting bins."""

__version__ = "0.1.0"
