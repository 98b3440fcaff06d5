"""Values and colour, place by place, independent of errors of drawing."""
