"""What every suspect would have made a person write down: a case's observations as columns of chances."""
