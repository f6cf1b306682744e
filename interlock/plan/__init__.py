"""What a practitioner does at the installation to see that a fault is not there: stimuli, sights, shortest tests."""
