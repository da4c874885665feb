"""Courses of action in money: joint true states in, costs that follow from them, stages with an option to stop."""
