"""What commands print: plans, comparisons, sizes, explanations and findings as text for a terminal."""
