// Package api serves the service over HTTP: JSON and CSV in and out, RFC 9457
// problem documents for what went wrong, and the operations endpoints. It
// translates and decides nothing about furniture.
package api

//go:generate go tool swag init -d . --useStructName -g doc.go -o ../docs --outputTypes json
//go:generate go run ./describe -swagger ../docs/swagger.json -to ../docs/openapi.json -to-3.0 ../docs/openapi-3.0.json
//go:generate rm ../docs/swagger.json

//	@title			Askwright
//	@version		1
//	@description	Comparables, asking prices and stale listings for a group of furniture flippers. Every list is also a CSV: the same path with .csv, or Accept: text/csv. Errors are RFC 9457 problem documents. Clients ignore keys that they do not know: within v1 only additions are made.
//	@basePath		/
//	@accept			json
//	@produce		json,application/problem+json

//	@securityDefinitions.apikey	Key
//	@in							header
//	@name						Authorization
//	@description				Bearer KEY. Feed keys open the .csv feeds only, there also as ?key=.
