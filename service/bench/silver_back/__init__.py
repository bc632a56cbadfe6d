"""Silver had back out of the stock vessel: how much salt, acid or metal, how to see the end, what is left."""
