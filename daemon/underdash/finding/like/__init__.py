"""Which field is a quantity that is known from elsewhere."""
