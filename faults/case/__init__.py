"""The case file: all the evidence of one fault, in one text file that can be kept, compared and sent on."""
