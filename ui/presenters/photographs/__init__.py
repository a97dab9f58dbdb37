"""What is drawn over a photograph, magnified views of the edges, and corrections by hand."""
