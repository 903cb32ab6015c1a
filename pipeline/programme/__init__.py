"""Values packages per building and chooses the programme under the budgets."""
