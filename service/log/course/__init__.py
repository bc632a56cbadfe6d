"""How a batch stands by its log: which entries count, its stage and gate, the next stage, its washes to come."""
