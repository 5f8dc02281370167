"""What the person wrote or said: times, sentences and the plan that they mean. Knows no video."""
