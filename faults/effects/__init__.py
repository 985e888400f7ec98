"""What can go wrong at each role, as alterations of a memory; kinds of fault choose among them."""
