"""What a used machine may bring: public curves and the owner's comparables, as a band."""
