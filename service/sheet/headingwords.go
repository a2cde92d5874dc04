package sheet

// Fields that are no column: several columns are read from one of them.
const (
	fieldSize     = "size"      // width, depth and height together
	fieldStatus   = "status"    // sold, pulled, donated: outcome, stage and closed_as
	fieldDrops    = "drops"     // price drops with their days
	fieldFirstAsk = "first_ask" // what was asked when it was listed
	fieldSold     = "sold"      // a yes, a day or an amount: its values tell which
	fieldLook     = "look"      // finish and color together
)

// fieldNames are the fields beside the columns, in the user's words.
var fieldNames = []string{fieldSize, fieldStatus, fieldDrops, fieldFirstAsk, fieldLook}

// headingWords are the headings of flippers' sheets by the field that they
// mean: abbreviations and trade words. Common practice, no source.
var headingWords = map[string][]string{
	"ref": {"id", "tag", "tag #", "item #", "item no", "item id", "no", "no.", "nr", "#", "num", "number", "sku", "piece #", "piece no",
		"piece id", "inv #", "inventory #", "code", "stock #", "lot"},
	"piece_ref": {"original piece", "same piece as"},
	"category": {"item", "piece", "what", "type", "kind", "furniture", "furniture type", "description", "desc", "title", "item name",
		"name", "product", "what is it", "item description"},
	"set_size":  {"qty", "quantity", "how many", "pcs", "pieces", "set of", "count"},
	"width":     {"w", "wide", "w in", "width in", "w (in)", "width (in)", "w\"", "width\"", "w cm", "width cm", "w (cm)", "width (cm)", "largeur", "breite"},
	"depth":     {"d", "deep", "d in", "depth in", "d (in)", "depth (in)", "d\"", "depth\"", "d cm", "depth cm", "d (cm)", "depth (cm)", "profondeur", "tiefe"},
	"height":    {"h", "ht", "tall", "h in", "height in", "h (in)", "height (in)", "h\"", "height\"", "h cm", "height cm", "h (cm)", "height (cm)", "hauteur", "höhe"},
	fieldSize:   {"size", "dims", "dim", "dimensions", "measurements", "measures", "meas", "wxdxh", "w x d x h", "w/d/h", "hxwxd", "h x w x d", "lxwxh", "l x w x h", "w d h"},
	"unit":      {"units", "in/cm"},
	"material":  {"made of", "construction", "mat'l"},
	"wood":      {"species", "wood type", "wood species", "type of wood"},
	"style":     {"era", "period", "design"},
	"year_made": {"year", "year built", "made in year", "age"},
	"condition": {"cond", "cond.", "shape", "grade", "condition now", "quality"},
	"finish":    {"surface", "treatment", "what i did"},
	fieldLook:   {"finish/color", "finish & color", "finish and color", "look", "paint", "paint color", "color/finish"},
	"color":     {"colour", "clr"},
	"hardware":  {"pulls", "knobs", "handles"},
	"drawers":   {"drawer", "# drawers", "drws"},
	"doors":     {"door", "# doors"},
	"maker":     {"brand", "manufacturer", "by", "label"},
	"flaws":     {"damage", "issues", "problems", "defects", "wear"},
	"smell":     {"odor", "odour"},
	"venues":    {"venue", "where", "where listed", "listed where", "platform", "site", "posted on (site)", "marketplace", "listed at (site)", "channel", "venues", "where posted"},
	"listed_on": {"date", "listed", "list date", "date listed", "listed date", "posted", "post date", "date posted", "up since", "on market", "on the market", "put up", "date up", "start date", "went up", "listed on", "list dt"},
	"ask": {"asking", "asking price", "price", "list price", "list $", "ask $", "current price", "price now", "ask price", "now asking", "listed for", "listed price",
		"tag price", "preis", "prix", "asking $", "my price", "$"},
	fieldFirstAsk: {"original price", "orig price", "start price", "starting price", "first price", "initial price", "orig ask", "first ask", "original ask", "start ask"},
	"own_price":   {"estimate", "my guess", "guess", "own price", "what i'd ask", "what i think", "estimated value", "est value", "hoped for"},
	fieldDrops: {"price drops", "drops", "price changes", "price cuts", "reductions", "reduced", "markdowns", "price history", "dropped to",
		"price drop"},
	"pauses":     {"breaks", "off market"},
	"views":      {"clicks", "seen", "looks", "hits"},
	"saves":      {"saved", "favorites", "favourites", "favs", "likes", "hearts", "watchers"},
	"messages":   {"msgs", "msg", "inquiries", "enquiries", "messages", "replies", "contacts", "asks about it", "questions", "dms"},
	"showings":   {"viewings", "showings", "visits", "came to see", "shown"},
	fieldStatus:  {"status", "state", "outcome", "what happened", "result", "sold?", "sold y/n", "stat", "situation", "status now"},
	fieldSold:    {"sold", "gone"},
	"ended_on":   {"date sold", "sold date", "sold on", "sale date", "sold dt", "ended", "end date", "date ended", "gone on", "day sold", "date gone", "when sold", "off date"},
	"sale_price": {"sold for", "sold price", "sold $", "sale $", "sale price", "sp", "selling price", "got", "final price", "went for", "sale amount", "sold at", "verkauft für", "vendu", "final"},
	"sold_venue": {"sold via", "sold where", "where sold", "sold through"},
	"area":       {"town", "city", "location", "neighborhood"},
	"bought_on":  {"date bought", "buy date", "bought", "purchased", "purchase date", "acquired", "date acquired", "picked up", "bought on", "date purchased", "found on"},
	"bought_from": {"source", "from", "got from", "bought at", "where bought", "where from", "bought where", "where found", "store", "picked up from",
		"where i got it"},
	"condition_found":  {"cond found", "condition when bought", "condition bought", "before", "cond before"},
	"purchase_cost":    {"paid", "cost", "bought for", "purchase price", "buy price", "cost $", "paid $", "purchase $", "bought $", "cog", "cogs", "my cost", "price paid", "buy", "buy $"},
	"pickup_cost":      {"gas", "pickup", "hauling", "fuel", "trip"},
	"materials_cost":   {"supplies", "materials", "paint cost", "supplies $", "materials $", "mats", "paint & supplies", "supply cost", "paint etc", "stuff"},
	"other_cost":       {"other", "other costs", "misc", "misc $", "extra"},
	"fees":             {"fee", "commission", "listing fee", "platform fee", "booth fee"},
	"delivery_charged": {"delivery fee", "delivery charged", "delivery income", "delivery $"},
	"delivery_cost":    {"delivery expense"},
	"hours":            {"hrs", "time", "labor", "labour", "hours worked", "time spent", "hr", "bench hours", "work hours", "labor hrs", "labor hours"},
	"hours_other":      {"other hours", "other hrs", "hours driving", "drive time"},
	"notes":            {"note", "comments", "remarks", "memo", "my notes", "comment", "bemerkung", "notes to self"},
	"seller_ask":       {"seller asks", "they want"},

	// As earlier exports have them.
	"set_items": {"items"}, "ask_history": {"asks"}, "closed_as": {"let go"}, "closed_on": {"let go on"}, "closed_note": {"let go note"},
}

// leftOut are headings of figures that are worked out from others, and of what
// is not kept. Common practice, no source.
var leftOut = []string{
	"profit", "net", "net profit", "margin", "roi", "markup", "gain", "days", "dom", "days listed", "days on market", "days to sell", "total cost",
	"total costs", "all in", "total", "per hour", "$/hr", "hourly", "profit/hr", "month", "running total", "made", "earned", "take home",
	"buyer", "buyer name", "phone", "contact", "photo", "photos", "picture", "pic", "pics", "link", "url", "image", "member", "revision", "paid by", "cash/venmo", "payment",
}

// unsureHeadings mean one thing mostly and another at times: they are asked
// about, with what the sheet says against it.
var unsureHeadings = map[string]float64{
	"price": 0.8, "date": 0.6, "where": 0.7, "time": 0.6, "by": 0.6, "made": 0.6, "from": 0.9, "before": 0.6, "age": 0.6, "other": 0.7, "total": 0.8,
	"$": 0.6, "buy": 0.8, "seen": 0.7, "stuff": 0.7, "net": 0.8, "got": 0.7, "final": 0.7, "store": 0.8, "saved": 0.9, "shape": 0.9, "grade": 0.9,
	"wear": 0.9, "count": 0.9, "location": 0.8, "paint": 0.8, "label": 0.7, "source": 0.9, "shown": 0.7, "looks": 0.7, "found on": 0.8,
	"reduced": 0.8, "off date": 0.8, "posted": 0.95, "extra": 0.8, "pieces": 0.8, "number": 0.9, "no": 0.95, "code": 0.9, "lot": 0.9, "design": 0.8, "year": 0.9,
}
