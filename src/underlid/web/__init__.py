"""The pages and the JSON interface: thin doors, like the commands. Nothing here computes and nothing touches tables."""
