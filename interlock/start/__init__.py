"""A first scheme from a few answers: commented, free of findings, ready to be cut to the job."""
