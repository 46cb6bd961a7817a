package api

// Routes lists what the server answers to, as the contract writes it: "GET /v1/assessments/{id}".
func (s *Server) Routes() []string {
	var routes []string
	for _, r := range s.echo.Routes() {
		routes = append(routes, r.Method+" "+contractPath(r.Path))
	}
	return routes
}
