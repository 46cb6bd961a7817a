package main

import (
	"context"

	"levinward/api"
	"levinward/api/queue"
	"levinward/api/webhook"
)

// startQueue begins what the service does beside requests: works, deliveries, removals.
func startQueue(ctx context.Context, c api.Config) *queue.Queue {
	sender := webhook.New(webhook.Config{Store: c.Store, Log: c.Log, Private: c.PrivateWebhooks, Agent: c.Engine})
	q := queue.Start(ctx, queue.Config{
		Kinds:  append(c.Jobs.Kinds(), sender.Kind()),
		Chores: append(c.Jobs.Chores(), sender.Chores()...),
		Log:    c.Log,
	})
	c.Jobs.WhenQueued(func(string) { q.Wake() })
	return q
}
