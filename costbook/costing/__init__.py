"""What things cost: rates, usage, unit costs, price tiers, and what to look at."""
