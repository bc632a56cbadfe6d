"""A strip read with the doubt that its photo's phone and light deserve, where the profile remembers them."""
