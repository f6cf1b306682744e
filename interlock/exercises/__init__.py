"""Questions about a scheme for those who learn it: every answer is worked out, none is written by hand."""
