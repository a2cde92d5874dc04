package renamed

// Routes are the addresses that moved or went.
var Routes = []Route{
	{"GET", "/v1/stale", "/v1/reviews?state=stale", "without state it has every open listing"},
	{"GET", "/v1/stale.csv", "/v1/reviews.csv?state=stale", "without state it has every open listing"},
	{"GET", "/v1/stale.atom", "/v1/reviews.atom", ""},
	{"POST", "/v1/listings/import", "/v1/imports?commit=true", ""},
	{"GET", "/v1/model/record", "/v1/track-record", ""},
	{"GET", "/v1/listing-age.csv", "/v1/reports/listing-age.csv", ""},
	{"POST", "/v1/pieces/:id/refinish", "/v1/listings/{listing_id}/events", `an event of the kind refinish, of the piece's newest row`},
	{"POST", "/v1/members", "/v1/invitations", "whom you invite redeems the invitation and alone sees the key"},
	{"POST", "/v1/webhooks/:id/test", "/v1/webhooks/{id}/deliveries", ""},
	{"POST", "/v1/webhooks/:id/deliveries/:delivery_id/resend", "/v1/webhooks/{id}/deliveries/{delivery_id}/attempts", ""},
}
