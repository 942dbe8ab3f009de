"""How accurate the measurements are, counted on rendered scenes and on real photographs."""
