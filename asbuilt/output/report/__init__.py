"""The history report: facts and gaps of one property as blocks, set as one page of HTML and as PDF."""
