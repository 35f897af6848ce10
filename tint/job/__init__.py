"""What goes to the bench: drawings, settings, order, time, sheet."""
