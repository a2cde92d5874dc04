package api

import (
	"net/http"

	"askwright/api/board"
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
	feed  = service.ScopeFeed
	read  = service.ScopeRead
	write = service.ScopeWrite
	admin = service.ScopeAdmin
)

// routes is every route there is. HEAD goes with each GET, OPTIONS with all.
func (s *Server) routes() []route {
	routes := append(s.resources(), s.pages()...)
	for _, l := range s.lists() {
		routes = append(routes, route{"GET", l.path, l.scope, l.bulk, l.handle}, route{"GET", l.path + ".csv", l.csv, l.bulk, l.handle})
	}
	return routes
}

// list is a row of the table of lists. csv is the scope of its second address,
// which ends in .csv.
type list struct {
	path, scope, csv string
	bulk             bool
	handle           web.Handler
}

// lists go out as JSON and as CSV.
func (s *Server) lists() []list {
	return []list{
		{"/v1/listings", read, feed, true, s.listListings},
		{"/v1/changes", read, read, true, web.PageEndpoint(s.Kit, wire.ChangeColumns, false, s.listChanges)},
		{"/v1/pieces", read, feed, false, web.PageEndpoint(s.Kit, wire.PieceColumns, false, s.listPieces)},
		{"/v1/pieces/:id/costs", read, read, false, web.ListEndpoint(s.Kit, wire.CostColumns, s.listCosts)},
		{"/v1/pieces/:id/story", read, feed, false, web.ListEndpoint(s.Kit, wire.StoryColumns, s.getStory)},
		{"/v1/listings/:id/events", read, read, false, web.LiveList(wire.EventColumns, s.listEvents)},
		{"/v1/listings/:id/offers", read, read, false, web.ComputedTable(s.Kit, wire.OfferTable, s.listOffers)},
		{"/v1/comparables", read, feed, false, web.ListEndpoint(s.Kit, wire.ComparableColumns, s.listComparables)},
		{"/v1/suggestions", read, feed, true, web.ListEndpoint(s.Kit, wire.SuggestionColumns, s.listSuggestions)},
		{"/v1/next-steps", read, feed, false, web.ListEndpoint(s.Kit, wire.NextStepColumns, s.listNextSteps)},
		{"/v1/reviews", read, feed, false, web.PageEndpoint(s.Kit, wire.ReviewColumns, false, s.listReviews)},
		{"/v1/reports/listing-age", read, feed, false, web.ListEndpoint(s.Kit, wire.AgeColumns, s.listingAge)},
		{"/v1/reports/profit", read, read, true, s.getProfit},
		{"/v1/reports/profit-lines", read, read, true, web.ListEndpoint(s.Kit, wire.LineColumns, s.listProfitLines)},
		{"/v1/reports/stock", read, read, true, web.ComputedTable(s.Kit, wire.StockTable, s.listStock)},
		{"/v1/reports/let-go", read, read, true, web.ComputedTable(s.Kit, wire.StockTable, s.listLetGo)},
		{"/v1/reports/quick-sales", read, read, true, web.ListEndpoint(s.Kit, wire.QuickSaleColumns, s.listQuickSales)},
		{"/v1/work-queue", read, read, false, web.ComputedTable(s.Kit, wire.TaskTable, s.getWorkQueue)},
		{"/v1/invitations", admin, admin, false, web.LiveList(wire.InvitationColumns, s.listInvitations)},
		{"/v1/imports", write, write, false, web.LiveList(wire.ImportItemColumns, s.listImports)},
		{"/v1/imports/:id/rows", write, write, false, web.LiveList(wire.ImportRowColumns, s.listImportRows)},
		{"/v1/webhooks", admin, admin, false, web.LiveList(wire.WebhookColumns, s.listWebhooks)},
		{"/v1/webhooks/:id/deliveries", admin, admin, false, web.PageEndpoint(s.Kit, wire.WebhookDeliveryColumns, true, s.listWebhookDeliveries)},
		{"/v1/reports/days-to-sell", read, feed, false, web.ListEndpoint(s.Kit, wire.DaysToSellColumns, s.listDaysToSell)},
		{"/v1/members", read, read, false, web.LiveList(wire.MemberColumns, s.listMembers)},
		{"/v1/keys", read, read, false, web.LiveList(wire.KeyColumns, s.listKeys)},
		{"/problems", web.NoKey, web.NoKey, false, web.LiveList(wire.ProblemColumns, s.listProblems)},
	}
}

// resources are what else takes a key.
func (s *Server) resources() []route {
	return []route{
		{"GET", "/v1/listings.xlsx", read, true, s.exportWorkbook},
		{"POST", "/v1/listings", write, false, web.Post(s.Kit, http.StatusOK, s.createListing)},
		{"POST", "/v1/imports", write, true, s.createImport},
		{"GET", "/v1/imports/:id", write, false, web.Get(s.getImport)},
		{"PATCH", "/v1/imports/:id", write, false, web.Post(s.Kit, http.StatusOK, s.patchImport)},
		{"DELETE", "/v1/imports/:id", write, false, web.Do(s.deleteImport)},
		{"POST", "/v1/imports/:id/commits", write, false, web.Post(s.Kit, http.StatusOK, s.commitImport)},
		{"GET", "/v1/listings/:id", read, false, s.getListing},
		{"PATCH", "/v1/listings/:id", write, false, web.Post(s.Kit, http.StatusOK, s.patchListing)},
		{"DELETE", "/v1/listings/:id", write, false, web.Do(s.deleteListing)},
		{"POST", "/v1/listings/:id/events", write, false, web.Post(s.Kit, http.StatusCreated, s.createEvent)},
		{"POST", "/v1/listings/:id/offers", write, false, web.Post(s.Kit, http.StatusCreated, s.createOffer)},
		{"GET", "/v1/listings/:id/suggestion", read, false, web.Computed(s.Kit, s.getSuggestion)},
		{"GET", "/v1/listings/:id/text", read, false, s.getListingText},
		{"GET", "/v1/listings/:id/curve.svg", feed, false, s.getCurve},
		{"GET", "/v1/listings/:id/curve.png", feed, false, s.getCurve},
		{"POST", "/v1/pieces", write, false, web.Post(s.Kit, http.StatusOK, s.createPiece)},
		{"GET", "/v1/pieces/:id", read, false, web.Get(s.getPiece)},
		{"PATCH", "/v1/pieces/:id", write, false, web.Post(s.Kit, http.StatusOK, s.patchPiece)},
		{"POST", "/v1/pieces/:id/costs", write, false, web.Post(s.Kit, http.StatusCreated, s.createCost)},
		{"POST", "/v1/suggestions", read, false, web.PostTable(s.Kit, http.StatusOK, wire.AdviceTable, s.createSuggestions)},
		{"POST", "/v1/purchase-limits", read, false, s.createPurchaseLimits},
		{"POST", "/v1/delivery-quotes", read, false, web.Post(s.Kit, http.StatusOK, s.createDeliveryQuote)},
		{"POST", "/v1/refinish-estimates", read, true, web.Post(s.Kit, http.StatusOK, s.createRefinishEstimates)},
		{"GET", "/v1/next-steps.ics", feed, false, s.nextStepCalendar},
		{"GET", "/v1/reviews.atom", feed, false, s.reviewFeed},
		{"GET", "/v1/digest", read, true, s.getDigest},
		{"GET", "/v1/digest.txt", read, true, s.getDigest},
		{"GET", "/v1/digest.html", read, true, s.getDigest},
		{"GET", "/v1/reports/listing-age.svg", feed, false, s.getAgePicture},
		{"GET", "/v1/reports/listing-age.png", feed, false, s.getAgePicture},
		{"GET", "/v1/reports/profit.xlsx", read, true, s.getProfitWorkbook},
		{"GET", "/v1/model", read, false, web.Computed(s.Kit, s.getModel)},
		{"GET", "/v1/track-record", read, true, web.Get(s.getTrackRecord)},
		{"GET", "/v1/group", read, false, web.Get(s.getGroup)},
		{"PATCH", "/v1/group", admin, false, web.Post(s.Kit, http.StatusOK, s.patchGroup)},
		{"DELETE", "/v1/members/:id", admin, false, web.Do(s.deleteMember)},
		{"POST", "/v1/invitations", admin, false, web.Post(s.Kit, http.StatusCreated, s.createInvitation)},
		{"DELETE", "/v1/invitations/:id", admin, false, web.Do(s.deleteInvitation)},
		{"POST", "/v1/invitation-redemptions", web.NoKey, false, web.Post(s.Kit, http.StatusCreated, s.redeemInvitation)},
		{"POST", "/v1/keys", write, false, web.Post(s.Kit, http.StatusCreated, s.createKey)},
		{"DELETE", "/v1/keys/:id", write, false, web.Do(s.deleteKey)},
		{"POST", "/v1/webhooks", admin, false, web.Post(s.Kit, http.StatusCreated, s.createWebhook)},
		{"POST", "/v1/webhook-samples", admin, false, web.Post(s.Kit, http.StatusOK, s.createWebhookSample)},
		{"DELETE", "/v1/webhooks/:id", admin, false, web.Do(s.deleteWebhook)},
		{"POST", "/v1/webhooks/:id/deliveries", admin, false, web.Do(s.testWebhook)},
		{"POST", "/v1/webhooks/:id/deliveries/:delivery_id/attempts", admin, false, web.Do(s.resendWebhookDelivery)},
	}
}

// pages take no key, or read it themselves.
func (s *Server) pages() []route {
	return []route{
		{"GET", "/", web.NoKey, false, s.getRoot},
		{"GET", "/board", web.NoKey, false, s.board.Page(feed, s.board.GetBoard)},
		{"GET", "/board/style.css", web.NoKey, false, s.board.GetBoardStyle},
		{"GET", "/board/listings", web.NoKey, false, s.board.Page(read, s.board.GetBoardListings)},
		{"GET", "/board/charts", web.NoKey, false, s.board.Page(read, s.board.GetBoardCharts)},
		{"GET", "/board/wall", web.NoKey, false, s.board.Page(feed, s.board.GetBoardWall)},
		{"GET", "/board/listings/:id", web.NoKey, false, s.board.Page(read, s.board.GetBoardListing)},
		{"GET", "/board/listings/:id/confirm", web.NoKey, false, s.board.Page(write, s.board.GetBoardConfirm)},
		{"POST", "/board/listings/:id/events", web.NoKey, false, s.board.Page(write, board.Form(s.board.PostBoardEvent))},
		{"GET", "/board/pieces", web.NoKey, false, s.board.Page(read, s.board.GetBoardPieces)},
		{"POST", "/board/pieces", web.NoKey, false, s.board.Page(write, board.Form(s.board.PostBoardPiece))},
		{"GET", "/board/new-piece", web.NoKey, false, s.board.Page(write, s.board.GetBoardNewPiece)},
		{"GET", "/board/pieces/:id", web.NoKey, false, s.board.Page(read, s.board.GetBoardPiece)},
		{"GET", "/board/what-if", web.NoKey, false, s.board.Page(read, s.board.GetBoardWhatIf)},
		{"GET", "/board/finds", web.NoKey, false, s.board.Page(read, s.board.GetBoardFinds)},
		{"POST", "/board/finds", web.NoKey, false, s.board.Page(write, board.Form(s.board.PostBoardFind))},
		{"GET", "/board/settings", web.NoKey, false, s.board.Page(read, s.board.GetBoardSettings)},
		{"POST", "/board/settings", web.NoKey, false, s.board.Page(write, board.Form(s.board.PostBoardSettings))},
		{"GET", "/board/keys", web.NoKey, false, s.board.Page(write, s.board.GetBoardKeys)},
		{"POST", "/board/keys", web.NoKey, false, s.board.Page(write, board.Form(s.board.PostBoardKey))},
		{"GET", "/board/imports", web.NoKey, false, s.board.Page(write, s.board.GetBoardImports)},
		{"POST", "/board/imports", web.NoKey, true, s.board.Page(write, s.board.PostBoardImport)},
		{"GET", "/board/imports/:id", web.NoKey, false, s.board.Page(write, s.board.GetBoardImport)},
		{"POST", "/board/imports/:id", web.NoKey, false, s.board.Page(write, board.Form(s.board.PostBoardImportChange))},
		{"GET", "/board/icon.svg", web.NoKey, false, s.board.GetBoardIcon},
		{"GET", "/board/sign-in", web.NoKey, false, s.board.Page(web.NoKey, s.board.GetSignIn)},
		{"POST", "/board/sign-in", web.NoKey, false, s.board.Page(web.NoKey, s.board.PostSignIn)},
		{"GET", "/board/invitation", web.NoKey, false, s.board.Page(web.NoKey, s.board.GetInvitation)},
		{"POST", "/board/invitation", web.NoKey, false, s.board.Page(web.NoKey, s.board.PostInvitation)},
		{"POST", "/board/sign-out", web.NoKey, false, s.board.Page(read, s.board.PostSignOut)},
		{"GET", "/healthz", web.NoKey, false, s.getHealth},
		{"GET", "/readyz", web.NoKey, false, s.getReadiness},
		{"GET", "/openapi.json", web.NoKey, false, s.getOpenAPI},
		{"GET", "/openapi-3.0.json", web.NoKey, false, s.getOpenAPI},
		{"GET", "/docs/*file", web.NoKey, false, s.getDocs()},
		{"GET", "/.well-known/security.txt", web.NoKey, false, s.getSecurity},
		{"GET", "/problems/:name", web.NoKey, false, s.getProblem},
	}
}
