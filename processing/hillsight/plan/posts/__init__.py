"""Marshal posts: where people stand who watch a course, and what of it they see."""
