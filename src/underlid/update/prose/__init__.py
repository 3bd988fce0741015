"""What the account says: every sentence, number and date, made from facts."""
