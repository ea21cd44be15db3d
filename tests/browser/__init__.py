"""The panels as people use them: a real Chromium, the service in a process of its own, a network that can fail."""
