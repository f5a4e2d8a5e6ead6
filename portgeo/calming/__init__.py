"""The cut that calms the air: what each amount of metal can buy, and where it comes out."""
