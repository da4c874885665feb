"""What an engine is: cylinders on banks, numbering, firing order, neighbours, geometry."""
