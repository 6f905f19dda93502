"""What makes a rehearsed year quick, and changes nothing else."""
