"""The bench on the page: a scheme's compiled tables stepped scan by scan in a browser, faults planted."""
