"""Statements of any kind weighed, shown and asked for, each as its module in ``plan.kinds`` says."""
