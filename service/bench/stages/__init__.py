"""What the file of a procedure may say of its gates, and what is wrong with it, told in words."""
