"""What a person sees of a result.  `text` prints it, `plots` draws it, `files` writes it for other
programs, `sheet` is the page for the bench, `sampling` takes the field to the points that are
drawn.  Import the module that is needed: matplotlib and others load with it."""
