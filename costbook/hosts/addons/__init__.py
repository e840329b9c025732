"""What is put into her office program: programs of their own that use the standard library and nothing else."""
