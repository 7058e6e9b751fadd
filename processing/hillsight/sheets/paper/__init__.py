"""What every sheet is made of: page, margins, relief, contours, labels, marks."""
