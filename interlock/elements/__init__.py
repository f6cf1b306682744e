"""What sensors are made of: from a truth to a reading with every tolerance, and back to what to put in its place."""
