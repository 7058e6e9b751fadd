"""Map sheets by themselves, to exact scale: frame, content, drawing, margins, sheets and their index."""
