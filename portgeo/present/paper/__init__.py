"""What is printed on paper: templates and the customer's pages."""
