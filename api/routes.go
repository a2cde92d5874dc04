package api

import (
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// route is one row of the table. An empty scope needs no key; bulk routes may
// send and take longer.
type route struct {
	method, path, scope string
	bulk                bool
	handle              web.Handler
}

const (
	feed = service.ScopeFeed
)

const (
	read = service.ScopeRead
)

const (
	write = service.ScopeWrite
)

const (
	admin = service.ScopeAdmin
)

// routes is every route there is. HEAD goes with each GET, OPTIONS with all.
func (s *Server) routes() []route {
	return []route{
		{"GET", "/v1/listings", read, true, s.listListings},
		{"GET", "/v1/listings.csv", feed, true, s.listListings},
		{"GET", "/v1/listings.xlsx", read, true, s.exportWorkbook},
		{"POST", "/v1/listings", write, false, s.createListing},
		{"POST", "/v1/listings/import", write, true, s.importListings},
		{"GET", "/v1/listings/:id", read, false, s.getListing},
		{"PATCH", "/v1/listings/:id", write, false, s.patchListing},
		{"DELETE", "/v1/listings/:id", write, false, s.deleteListing},
		{"GET", "/v1/listings/:id/events", read, false, s.listEvents},
		{"POST", "/v1/listings/:id/events", write, false, s.createEvent},
		{"GET", "/v1/listings/:id/offers", read, false, s.listOffers},
		{"POST", "/v1/listings/:id/offers", write, false, s.createOffer},
		{"GET", "/v1/listings/:id/suggestion", read, false, s.getSuggestion},
		{"GET", "/v1/listings/:id/text", read, false, s.getListingText},
		{"GET", "/v1/listings/:id/curve.svg", feed, false, s.getCurve},
		{"GET", "/v1/listings/:id/curve.png", feed, false, s.getCurve},
		{"GET", "/v1/pieces", read, false, s.listPieces},
		{"GET", "/v1/pieces.csv", feed, false, s.listPieces},
		{"POST", "/v1/pieces", write, false, s.createPiece},
		{"GET", "/v1/pieces/:id", read, false, s.getPiece},
		{"PATCH", "/v1/pieces/:id", write, false, s.patchPiece},
		{"GET", "/v1/pieces/:id/story.csv", feed, false, s.getStory},
		{"POST", "/v1/pieces/:id/refinish", write, false, s.refinishPiece},
		{"GET", "/v1/pieces/:id/costs", read, false, web.ListEndpoint(s.Kit, "costs.csv", wire.CostColumns, s.listCosts)},
		{"GET", "/v1/pieces/:id/costs.csv", read, false, web.ListEndpoint(s.Kit, "costs.csv", wire.CostColumns, s.listCosts)},
		{"POST", "/v1/pieces/:id/costs", write, false, s.createCost},
		{"GET", "/v1/comparables", read, false, web.ListEndpoint(s.Kit, "comparables.csv", wire.ComparableColumns, s.listComparables)},
		{"GET", "/v1/comparables.csv", feed, false, web.ListEndpoint(s.Kit, "comparables.csv", wire.ComparableColumns, s.listComparables)},
		{"GET", "/v1/suggestions", read, true, web.ListEndpoint(s.Kit, "suggestions.csv", wire.SuggestionColumns, s.listSuggestions)},
		{"GET", "/v1/suggestions.csv", feed, true, web.ListEndpoint(s.Kit, "suggestions.csv", wire.SuggestionColumns, s.listSuggestions)},
		{"POST", "/v1/suggestions", read, false, s.createSuggestions},
		{"POST", "/v1/purchase-limits", read, false, s.createPurchaseLimits},
		{"POST", "/v1/delivery-quotes", read, false, s.createDeliveryQuote},
		{"POST", "/v1/refinish-estimates", read, true, s.createRefinishEstimates},
		{"GET", "/v1/stale", read, false, web.ListEndpoint(s.Kit, "stale.csv", wire.ReviewColumns, s.listStale)},
		{"GET", "/v1/stale.csv", feed, false, web.ListEndpoint(s.Kit, "stale.csv", wire.ReviewColumns, s.listStale)},
		{"GET", "/v1/stale.atom", feed, false, s.staleFeed},
		{"GET", "/v1/digest", read, true, s.getDigest},
		{"GET", "/v1/digest.txt", read, true, s.getDigest},
		{"GET", "/v1/digest.html", read, true, s.getDigest},
		{"GET", "/v1/reports/listing-age", read, false, web.ListEndpoint(s.Kit, "listing-age.csv", wire.AgeColumns, s.listingAge)},
		{"GET", "/v1/reports/listing-age.csv", feed, false, web.ListEndpoint(s.Kit, "listing-age.csv", wire.AgeColumns, s.listingAge)},
		{"GET", "/v1/listing-age.csv", feed, false, web.ListEndpoint(s.Kit, "listing-age.csv", wire.AgeColumns, s.listingAge)}, // short, for formulas
		{"GET", "/v1/reports/listing-age.svg", feed, false, s.getAgePicture},
		{"GET", "/v1/reports/listing-age.png", feed, false, s.getAgePicture},
		{"GET", "/v1/reports/profit", read, true, s.getProfit},
		{"GET", "/v1/reports/profit.csv", read, true, s.getProfit},
		{"GET", "/v1/reports/profit.xlsx", read, true, s.getProfitWorkbook},
		{"GET", "/v1/work-queue", read, false, s.getWorkQueue},
		{"GET", "/v1/work-queue.csv", read, false, s.getWorkQueue},
		{"GET", "/v1/model", read, false, s.getModel},
		{"GET", "/v1/model/record", read, true, s.getTrackRecord},
		{"GET", "/v1/group", read, false, s.getGroup},
		{"PATCH", "/v1/group", admin, false, s.patchGroup},
		{"GET", "/v1/members", read, false, s.listMembers},
		{"POST", "/v1/members", admin, false, s.createMember},
		{"DELETE", "/v1/members/:id", admin, false, s.deleteMember},
		{"GET", "/v1/keys", read, false, s.listKeys},
		{"POST", "/v1/keys", write, false, s.createKey},
		{"DELETE", "/v1/keys/:id", write, false, s.deleteKey},
		{"GET", "/v1/webhooks", admin, false, s.listWebhooks},
		{"GET", "/v1/webhooks.csv", admin, false, s.listWebhooks},
		{"POST", "/v1/webhooks", admin, false, s.createWebhook},
		{"DELETE", "/v1/webhooks/:id", admin, false, s.deleteWebhook},
		{"POST", "/v1/webhooks/:id/test", admin, false, s.testWebhook},
		{"GET", "/v1/webhooks/:id/deliveries", admin, false, s.listWebhookDeliveries},
		{"GET", "/v1/webhooks/:id/deliveries.csv", admin, false, s.listWebhookDeliveries},
		{"POST", "/v1/webhooks/:id/deliveries/:delivery/resend", admin, false, s.resendWebhookDelivery},
		{"GET", "/v1/reports/days-to-sell", read, false, web.ListEndpoint(s.Kit, "days-to-sell.csv", wire.DaysToSellColumns, s.listDaysToSell)},
		{"GET", "/v1/reports/days-to-sell.csv", feed, false, web.ListEndpoint(s.Kit, "days-to-sell.csv", wire.DaysToSellColumns, s.listDaysToSell)},
		{"GET", "/", web.NoKey, false, s.getRoot},
		{"GET", "/board", web.NoKey, false, s.board.Page(feed, s.board.GetBoard)},
		{"GET", "/board/style.css", web.NoKey, false, s.board.GetBoardStyle},
		{"GET", "/board/listings/:id", web.NoKey, false, s.board.Page(read, s.board.GetBoardListing)},
		{"GET", "/board/listings/:id/confirm", web.NoKey, false, s.board.Page(write, s.board.GetBoardConfirm)},
		{"POST", "/board/listings/:id/events", web.NoKey, false, s.board.Page(write, s.board.PostBoardEvent)},
		{"GET", "/board/try", web.NoKey, false, s.board.Page(read, s.board.GetBoardTry)},
		{"GET", "/board/kerb", web.NoKey, false, s.board.Page(read, s.board.GetBoardKerb)},
		{"POST", "/board/finds", web.NoKey, false, s.board.Page(write, s.board.PostBoardFind)},
		{"GET", "/board/icon.svg", web.NoKey, false, s.board.GetBoardIcon},
		{"GET", "/board/sign-in", web.NoKey, false, s.board.Page(web.NoKey, s.board.GetSignIn)},
		{"POST", "/board/sign-in", web.NoKey, false, s.board.Page(web.NoKey, s.board.PostSignIn)},
		{"POST", "/board/sign-out", web.NoKey, false, s.board.Page(read, s.board.PostSignOut)},
		{"GET", "/healthz", web.NoKey, false, s.getHealth},
		{"GET", "/readyz", web.NoKey, false, s.getReadiness},
		{"GET", "/openapi.json", web.NoKey, false, s.getOpenAPI},
		{"GET", "/docs/*file", web.NoKey, false, s.getDocs()},
		{"GET", "/.well-known/security.txt", web.NoKey, false, s.getSecurity},
		{"GET", "/problems", web.NoKey, false, s.listProblems},
		{"GET", "/problems/:name", web.NoKey, false, s.getProblem},
	}
}
