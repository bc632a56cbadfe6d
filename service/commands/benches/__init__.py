"""Commands of the keeper: benches named and shut, their tokens and links, what is handed to them."""
