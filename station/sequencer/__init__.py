"""The path of one unit: recipe, plan, readiness, run."""
