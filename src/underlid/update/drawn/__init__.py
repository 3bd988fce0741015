"""What the account shows: charts, the bedding cut through, and the moments of the film."""
