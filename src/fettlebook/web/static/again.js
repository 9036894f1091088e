// The book is being read: look again until it was.
setTimeout(() => location.reload(), 1500);
