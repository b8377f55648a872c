"""What a user asks for: plain arguments in, domain objects out, the same for every face."""
