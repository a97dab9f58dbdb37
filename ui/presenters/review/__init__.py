"""Review: the queue, one station at a glance, the decision, and the supervisor's list."""
