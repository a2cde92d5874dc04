package api

// PostWebhooksTo is PostWebhooks with another rule for addresses and roots.
var PostWebhooksTo = postWebhooks
