"""The solved model as the frame has it: brought into the reference camera, and what of it is in view."""
