"""Every column and layer, declared once: name, unit, frame, meaning."""
