"""Paper for the painter: correction sheets and transfer drawings at exactly 1:1, and the study beforehand."""
