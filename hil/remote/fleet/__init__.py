"""Many pits: one collector that stores what their gateways publish, who floods first, a month of each, Parquet."""
