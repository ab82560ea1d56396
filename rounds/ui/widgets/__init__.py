"""What screens are made of; a widget is given what to show and posts what was asked."""
